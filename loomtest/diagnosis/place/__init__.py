"""Where along a wire a short or a break is, from readings taken at both ends."""
