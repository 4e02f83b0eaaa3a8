"""Studies for engineers: from stored records to limits that can be defended; numbers in, numbers out, files apart."""
