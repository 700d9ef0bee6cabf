"""One screen a file. Screens draw and ask; the app routes."""
