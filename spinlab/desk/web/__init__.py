"""The desk as seen through a browser: pages, interface, and what guards both."""
