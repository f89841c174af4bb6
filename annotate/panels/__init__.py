"""The window: napari with panels over the bench. The only place for Qt."""
