"""Python runs this when a child of a test starts: the child draws as the tests do, and takes the dates that they take."""

import draws
import years

draws.be_child()
years.reach_back()
