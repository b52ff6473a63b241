"""What a rule may ask of a scene, one file a question; pure functions over its arrays."""
