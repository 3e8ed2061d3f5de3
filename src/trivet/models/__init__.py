"""The design's words as values that kernels understand.

Stages, files and report share these, so that all of them see the same lens, the
same surfaces and the same assumed spreads. Records and facts in, kernel values out.
"""
