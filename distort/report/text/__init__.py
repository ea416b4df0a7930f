"""Every sentence and every table, once: terminal, page and figures take them from here."""
