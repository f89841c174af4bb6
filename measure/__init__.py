"""Numbers out of pixels: pure functions on arrays, no files and no Qt."""
