"""The report page: one HTML file that needs nothing else, made of the results and the figures of a session."""
