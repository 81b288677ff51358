"""One module for each page or group of pages."""
