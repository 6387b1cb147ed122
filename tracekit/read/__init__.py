"""From a file to blocks of samples."""
