"""One class, Studio(folder): the whole job as methods. Commands and pages call this and nothing below it.

The folder holds experiments/ (a folder for each study, with its study.toml and forms, and the study book beside them)
and reports/ (what is printed). The methods stand in a module for each stage of the job.
"""

from __future__ import annotations

from tilestudy.studio.bench_views import BenchViews
from tilestudy.studio.benching import Benching
from tilestudy.studio.choosing import Choosing
from tilestudy.studio.cutting import Cutting
from tilestudy.studio.labelling import Labelling
from tilestudy.studio.photographing import Photographing
from tilestudy.studio.trays import Trays


class Studio(BenchViews, Labelling, Cutting, Choosing, Photographing, Trays, Benching):
    """A studio's folder and what can be done with it.

    Parameters
    ----------
    folder : path
        Holds experiments/ and reports/; both are made when first needed.
    now : callable
        The clock: returns an aware datetime.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     studio = Studio(folder)
    ...     _ = studio.new("plaques", "sulfide-dip", "C11000")
    ...     len(studio.plan("plaques", seed=7).plan.tiles)
    36
    """
