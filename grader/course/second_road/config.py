"""nbgrader's settings of a term: its own commands and formgrader then mark as we do, and run no kernel."""

import os
import sysconfig

from grader import catalogue
from grader.course.submissions.archives import SET_ASIDE
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.records.term import term as terms

STEPS = "grader.course.formgrader.autograde"


def configure(c, folder):
    """Fill nbgrader's configuration for a term folder; called by its nbgrader_config.py.

    Parameters
    ----------
    c : traitlets Config
    folder : str
    """
    term = terms.open_term(folder)
    scripts = sysconfig.get_path("scripts")
    if scripts not in os.environ.get("PATH", "").split(os.pathsep):
        os.environ["PATH"] = scripts + os.pathsep + os.environ.get("PATH", "")  # nbgrader calls alembic by name
    c.CourseDirectory.root = str(term.folder)
    c.CourseDirectory.course_id = term.id
    patience = "?timeout=30" if term.database_url.startswith("sqlite") else ""
    c.CourseDirectory.db_url = term.database_url + patience
    c.CourseDirectory.ignore = [".ipynb_checkpoints", "*.pyc", "__pycache__", "feedback", f"*{SET_ASIDE}"]
    c.ClearSolutions.code_stub = terms.CODE_STUB
    # A trainee's notebook is never read: the released one stands in its place, and marks come from the answers.
    c.Autograde.exporter_class = f"{STEPS}.ReleasedNotebook"
    c.Autograde.pre_convert_hook = f"{STEPS}.make_safe"
    c.Autograde.sanitize_preprocessors = []
    c.Autograde.autograde_preprocessors = [f"{STEPS}.MarkAnswers", f"{STEPS}.SaveMarks"]
    kept = [sheets.NAME, issued.NAME]
    c.Autograde.exclude_overwriting = {key: kept for key in catalogue.all_modules()}
    c.OverwriteCells.add_missing_cells = True
    c.FormgradeExtension.debug = False  # else its page shows the database's address with the password
