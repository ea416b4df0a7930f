"""What libraries say by themselves is of their code, not of the user's work: it does not reach the user."""

import logging
import sys
import warnings


def quieten_libraries() -> None:
    """Show no warning of Python's, unless -W or PYTHONWARNINGS asks for them, and no log record that nobody handles.

    For a whole process that is this program's own.
    """
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    logging.getLogger().addHandler(logging.NullHandler())  # else Python prints warnings and errors to stderr
