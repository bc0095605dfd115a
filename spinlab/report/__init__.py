"""From a finished analysis to what a person reads: text, JSON, pictures and a page.

Nothing here does arithmetic on physics: every number comes from the analysis.
"""
