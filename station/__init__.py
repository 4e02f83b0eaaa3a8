"""Test station for brushless DC motors.

The main job from top to bottom: `sequence` orders the work, `bench` carries it out, `analysis` turns
captures into measurements, `judgement` compares them with a limit file, `record` keeps everything,
`certificate` prints it. Files at this level are shared nouns; folders are rooms.
"""

__version__ = "0.1.0"
