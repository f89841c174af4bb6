"""A small path tracer of cut stones in their settings: training material with exact truth, of our own make."""
