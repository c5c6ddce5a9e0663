"""Room 10: the controller itself, watched live, and a stand-in for it."""

from ringout.live.poll import Change, Connection, Event, Figures, Poller
from ringout.live.port import Port, PortError, port_of
from ringout.live.twin import Twin

__all__ = [
    "Change",
    "Connection",
    "Event",
    "Figures",
    "Poller",
    "Port",
    "PortError",
    "Twin",
    "port_of",
]
