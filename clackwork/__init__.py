"""clackwork: bench readings of a hydraulic ram pump, carried to every site."""

__version__ = "0.1.0"
"""As in pyproject.toml."""
