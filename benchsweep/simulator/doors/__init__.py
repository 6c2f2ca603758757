"""The listeners on the loopback interface: lines on a TCP stream, HiSLIP, VXI-11.

Each leads to one device of `scpi` and hands it messages; what the device is, no door knows. A new door is a
class built on `Door`, and on `Exchange` where messages and answers have ends.
"""

from benchsweep.simulator.doors._door import HOST, Door
from benchsweep.simulator.doors._hislip import HislipDoor
from benchsweep.simulator.doors._stream import StreamDoor
from benchsweep.simulator.doors._vxi11 import Vxi11Door

__all__ = [
    "HOST",
    "Door",
    "HislipDoor",
    "StreamDoor",
    "Vxi11Door",
]
