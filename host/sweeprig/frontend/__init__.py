"""The rig's front end, computed from one parts table."""

from sweeprig.frontend.model import FrontEnd as FrontEnd
from sweeprig.frontend.model import front_end as front_end
from sweeprig.frontend.model import front_end_of as front_end_of

__all__ = ["FrontEnd", "front_end", "front_end_of"]
