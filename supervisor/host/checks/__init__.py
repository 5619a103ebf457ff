"""The checks, a file for each part of the machine.

Each file has ``CHECKS``: by the name of the check within its group, a function of the host that
gives its answers. It writes nothing and returns soon; what it may raise is no concern of its own
(``host.check`` makes "cannot tell" of it).
"""
