"""Where a head looks: lenses, poses, coverage, walls, shadows, and what each pixel samples."""
