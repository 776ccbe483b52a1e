"""duskhold: one long exposure held safely in light that is changing."""

__version__ = "0.1.0"
