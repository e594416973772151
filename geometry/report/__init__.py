"""What is told of a build: report, client sheet, explaining pictures."""
