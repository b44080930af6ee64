"""Messages to people: a process of its own, which asks the service over its socket and cannot delay the tick.

`watch` turns what the service answers into notices (pure), `outbox` keeps them until they are sent, `channels` sends
one, `postman` is the loop.
"""
