"""Photograph, measure and record gemstones in their setting.

The rooms are :mod:`setstone.capture`, :mod:`setstone.measure`, :mod:`setstone.record` and
:mod:`setstone.annotate`; importing this package alone loads none of them.
"""

__version__ = "0.1.0"
