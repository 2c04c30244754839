"""A list in the text of a task: one entry a line in plain text, a list of HTML on every page."""

from grader.exercise import listing


def test_entries_become_a_list_between_paragraphs():
    text = (
        "Which line?"
        + listing.lines(("(1) a < b.", "(2) A wider gap opens the points earlier."))
        + "Say why.\nAnd how."
    )
    assert text == "Which line?\n• (1) a < b.\n• (2) A wider gap opens the points earlier.\nSay why.\nAnd how."
    assert listing.as_html(text) == (
        '<p>Which line?</p><ul class="listed"><li>(1) a &lt; b.</li>'
        "<li>(2) A wider gap opens the points earlier.</li></ul><p>Say why.<br>And how.</p>"
    )


def test_short_entries_stand_in_columns_and_longer_ones_do_not():
    assert '<ul class="listed"><li>0.012 in (0.30 mm)' in listing.as_html(
        listing.lines(("0.012 in (0.30 mm) → 60.1°",))
    )
    assert '<ul class="listed short"><li>P01 88 psi</li>' in listing.as_html(
        "Readings:" + listing.lines(("P01 88 psi", "P02 91 psi"))
    )


def test_text_without_a_list_is_one_paragraph_and_nothing_of_it_runs():
    assert listing.as_html("<script>x</script> • no entry") == "<p>&lt;script&gt;x&lt;/script&gt; • no entry</p>"
