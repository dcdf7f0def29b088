"""What is handed over: a page that plays, a set of files, a report."""
