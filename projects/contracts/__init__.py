"""What the services take: strict requests, read alike from the API, the pages and the commands."""
