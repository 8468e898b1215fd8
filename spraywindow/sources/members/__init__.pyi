# What other folders may use of it, loaded when first used.
