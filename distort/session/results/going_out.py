"""Whether sounds of `distort hear` may leave the session: in pages, which are all that plays them elsewhere."""

from distort.session.plan.keys import Plan
from distort.session.plan.licences import may_be_shared
from distort.session.recordings.pieces import may_leave
from distort.session.results.heard_files import Heard


def may_go_out(heard: Heard, plan: Plan) -> bool:
    """Whether the licence that was stated when they were made permits it, and what `plan` states now does so still."""
    return may_be_shared(heard.licence, heard.credit) and may_leave(plan, heard.programme_sha256)
