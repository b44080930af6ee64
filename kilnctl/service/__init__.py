"""The process beside the oven: the tick in real time, requests by a local socket, resume after a power cut."""
