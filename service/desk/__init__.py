"""The desk: pages for the agent on the telephone and the technician on site, and the book to browse."""
