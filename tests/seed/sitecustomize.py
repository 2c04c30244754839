"""Python runs this when a child of a test starts, and the child draws as the tests do."""

import draws

draws.be_child()
