"""From a file as the bench wrote it to a reviewed run: read, decide, find pulls, grid."""
