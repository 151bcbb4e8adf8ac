"""What a water change does: dilution of nitrate, blending of hot and cold, flow through pump and hose."""
