"""What is modelled: parts, stacks, mods and files. Descriptions only: no numerics."""
