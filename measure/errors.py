"""What can go wrong while measuring, in words a technician can act on."""


class MeasurementError(ValueError):
    """A measurement cannot be made; the message says why and what to do."""
