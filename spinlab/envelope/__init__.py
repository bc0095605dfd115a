"""Envelope analysis: pre-whitening, choice of band, squared envelopes, significance."""
