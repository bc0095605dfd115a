"""One file per step; a step that has been published is never changed."""
