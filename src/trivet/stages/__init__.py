"""The chain's stages, one public function each, named by its verb."""
