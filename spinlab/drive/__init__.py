"""Belt and motor: ratio over the ramp, slip, families of motor orders, arcing, carrier."""
