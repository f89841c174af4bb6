"""The window's modules are passed over where napari or a Qt binding is not installed."""

try:
    import napari  # noqa: F401, TID251
    import qtpy.QtWidgets  # noqa: F401, TID251
except (ImportError, RuntimeError):
    collect_ignore_glob = ["setstone/annotate/panels/*"]
