"""Does the loom as found give every reading that was taken?"""
