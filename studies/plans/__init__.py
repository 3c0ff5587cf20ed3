"""Whether random designs of every named graph can be laid out and pass every check of their meshes."""
