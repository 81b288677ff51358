"""Label-and-QR asset tracking for the battery room of an electric lift-truck fleet."""

__version__ = "0.1.0"
