"""When everything happens in a session: clock times of batches and tiles, for one pair of hands or more. Pure."""

from __future__ import annotations

from tilestudy.design.sessions.clock import Clock as Clock
from tilestudy.design.sessions.timetable import BatchTimes as BatchTimes
from tilestudy.design.sessions.timetable import Event as Event
from tilestudy.design.sessions.timetable import SessionTimes as SessionTimes
from tilestudy.design.sessions.timetable import TileTimes as TileTimes
from tilestudy.design.sessions.timetable import Timetable as Timetable
