"""Flow, decay, heat exchange and atmosphere, each with its source."""
