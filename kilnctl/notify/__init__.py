"""Who is told: a process of its own, which hears the service by its socket and cannot touch the tick.

`watch` turns what the service answers into notices (pure), `outbox` keeps them until they are sent, `channels` sends
one, `postman` is the loop.
"""
