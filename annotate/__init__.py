"""What people see and touch: drawings, the hand-out and the napari panels."""
