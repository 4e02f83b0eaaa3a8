"""Pages for the three people at a station: operator, engineer, auditor; served on the station's own computer.

`app` puts the pages together, `access` says who may see and do what, and `line` runs the tests in a thread of its own:
what a browser does, or stops doing, never touches a running test.
"""
