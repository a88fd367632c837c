"""stitchc compiles a written stitch repeat for single-bed knitting machines.

Nothing is imported here, so that `stitchc --help` starts at once; import the stages by name.
"""

__version__ = "0.1.0"
