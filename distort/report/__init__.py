"""For people: terminal tables and figures."""
