"""Room 10: the controller itself, watched live, and a stand-in for it.

`Feed` is the one way in for whoever shows what happens: an async context manager whose `events`
yields changes, connections, bounce and what stands wrong; `Teller` turns each into JSON.
"""

from ringout.live.feed import Feed
from ringout.live.poll import Change, Connection, Event, Figures, Pace, Poller
from ringout.live.port import Port, PortError, port_of
from ringout.live.twin import Twin
from ringout.live.watcher import LiveEvent, Settled, Standing

__all__ = [
    "Change",
    "Connection",
    "Event",
    "Feed",
    "Figures",
    "LiveEvent",
    "Pace",
    "Poller",
    "Port",
    "PortError",
    "Settled",
    "Standing",
    "Twin",
    "port_of",
]
