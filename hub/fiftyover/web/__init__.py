"""Pages, server-sent events, static files, sign-in."""
