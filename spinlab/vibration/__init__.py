"""What shakes: orders, resonances, looseness, beats and knocks."""
