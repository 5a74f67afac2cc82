"""What the web app and the command line both need: opening a book, outlooks, jobs, caches, weather."""
