"""What is going on at a window, without the window: stones, review, undo. No Qt."""
