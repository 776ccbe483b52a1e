"""Pure arithmetic of light: dials, filters, sun and moon, sky light, open time."""
