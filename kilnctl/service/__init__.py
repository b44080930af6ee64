"""The process that runs one oven: the tick in real time, requests over a local socket, resume after a power cut."""
