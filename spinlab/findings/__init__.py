"""From measurements to statements: the only home of thresholds."""
