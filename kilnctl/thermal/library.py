"""The library's figures. Each row: kind, conductivity points (°C, W/(m·K)), density kg/m³, heat capacity points
(°C, J/(kg·K)), service limit °C, source, relative uncertainty of the conductivity, emissivity.

Makers differ; a seller's own sheet beats these. "from memory" marks figures recalled from handbooks and typical sheets.
"""

_BRICK_CP = ((20.0, 880.0), (400.0, 1000.0), (800.0, 1060.0), (1200.0, 1100.0))
_FIBRE_CP = ((20.0, 800.0), (400.0, 1000.0), (800.0, 1100.0), (1200.0, 1150.0))
_WOOL_CP = ((20.0, 840.0), (400.0, 970.0), (700.0, 1030.0))
_STEEL_CP = ((20.0, 450.0), (200.0, 530.0), (400.0, 606.0), (600.0, 760.0), (700.0, 850.0), (800.0, 800.0), (900.0, 650.0), (1200.0, 650.0))
_STAINLESS_CP = ((20.0, 490.0), (400.0, 560.0), (800.0, 620.0), (1200.0, 660.0))
_VDI = "VDI Heat Atlas, refractories (conductivity); heat capacity from memory"
_MEMORY = "typical figures, from memory"
_EN = "EN 1993-1-2 for carbon steel, rounded, from memory"

TABLE = {
    "insulating firebrick 20": ("insulating firebrick", ((200.0, 0.11), (400.0, 0.125), (700.0, 0.15), (1000.0, 0.18)),
                                460.0, _BRICK_CP, 1090.0, _MEMORY, 0.15, 0.8),
    "insulating firebrick 23": ("insulating firebrick", ((400.0, 0.14), (700.0, 0.17), (1000.0, 0.20), (1200.0, 0.22)),
                                490.0, _BRICK_CP, 1260.0, _VDI, 0.15, 0.8),
    "insulating firebrick 26": ("insulating firebrick", ((400.0, 0.27), (700.0, 0.31), (1000.0, 0.34), (1200.0, 0.36)),
                                790.0, _BRICK_CP, 1400.0, _VDI, 0.15, 0.8),
    "insulating firebrick 28": ("insulating firebrick", ((400.0, 0.32), (700.0, 0.365), (1000.0, 0.41), (1200.0, 0.43)),
                                890.0, _BRICK_CP, 1540.0, _VDI, 0.15, 0.8),
    "dense firebrick": ("dense refractory", ((400.0, 1.05), (700.0, 1.125), (1000.0, 1.18), (1200.0, 1.22)),
                        2150.0, _BRICK_CP, 1400.0, _VDI, 0.15, 0.8),
    "castable refractory": ("dense refractory", ((200.0, 0.85), (600.0, 0.90), (1000.0, 1.0)), 2050.0, _BRICK_CP, 1400.0, _MEMORY, 0.2, 0.85),
    "cordierite": ("kiln furniture", ((20.0, 1.9), (500.0, 1.7), (1000.0, 1.6)), 2000.0, ((20.0, 750.0), (400.0, 1000.0), (1000.0, 1150.0)),
                   1280.0, _MEMORY, 0.2, 0.9),
    "ceramic fibre blanket 96": ("ceramic fibre", ((20.0, 0.036), (200.0, 0.066), (400.0, 0.108), (600.0, 0.170), (800.0, 0.248), (1000.0, 0.345)),
                                 96.0, _FIBRE_CP, 1260.0, _MEMORY, 0.15, 0.85),
    "ceramic fibre blanket 128": ("ceramic fibre", ((20.0, 0.035), (200.0, 0.060), (400.0, 0.095), (600.0, 0.145), (800.0, 0.205), (1000.0, 0.280)),
                                  128.0, _FIBRE_CP, 1260.0, _MEMORY, 0.15, 0.85),
    "ceramic fibre blanket 160": ("ceramic fibre", ((20.0, 0.034), (200.0, 0.056), (400.0, 0.086), (600.0, 0.125), (800.0, 0.175), (1000.0, 0.235)),
                                  160.0, _FIBRE_CP, 1260.0, _MEMORY, 0.15, 0.85),
    "ceramic fibre board 300": ("ceramic fibre", ((200.0, 0.060), (400.0, 0.080), (600.0, 0.108), (800.0, 0.140), (1000.0, 0.178)),
                                300.0, _FIBRE_CP, 1260.0, _MEMORY, 0.15, 0.85),
    "mineral wool 60": ("mineral wool", ((20.0, 0.035), (100.0, 0.046), (200.0, 0.070), (300.0, 0.103), (400.0, 0.147)),
                        60.0, _WOOL_CP, 400.0, _MEMORY, 0.15, 0.85),
    "mineral wool 100": ("mineral wool", ((20.0, 0.035), (100.0, 0.044), (200.0, 0.062), (300.0, 0.086), (400.0, 0.118), (500.0, 0.158), (600.0, 0.205)),
                         100.0, _WOOL_CP, 640.0, _MEMORY, 0.15, 0.85),
    "mineral wool 150": ("mineral wool", ((20.0, 0.036), (100.0, 0.044), (200.0, 0.058), (300.0, 0.077), (400.0, 0.101), (500.0, 0.130), (600.0, 0.165)),
                         150.0, _WOOL_CP, 680.0, _MEMORY, 0.15, 0.85),
    "glass wool 24": ("glass wool", ((10.0, 0.034), (100.0, 0.052), (200.0, 0.085)), 24.0, ((20.0, 830.0), (200.0, 950.0)), 230.0, _MEMORY, 0.15, 0.85),
    "calcium silicate board": ("calcium silicate", ((100.0, 0.062), (200.0, 0.068), (400.0, 0.084), (600.0, 0.104), (800.0, 0.130)),
                               245.0, ((20.0, 840.0), (400.0, 1030.0), (1000.0, 1100.0)), 1000.0, _MEMORY, 0.15, 0.85),
    "vermiculite board": ("vermiculite", ((200.0, 0.14), (400.0, 0.16), (600.0, 0.18), (800.0, 0.20)), 475.0, _BRICK_CP, 1100.0, _MEMORY, 0.15, 0.85),
    "perlite, loose": ("loose fill", ((20.0, 0.045), (200.0, 0.075), (400.0, 0.115), (600.0, 0.165)), 90.0, _BRICK_CP, 800.0, _MEMORY, 0.2, 0.85),
    "steel": ("metal", ((20.0, 53.0), (200.0, 47.0), (400.0, 41.0), (600.0, 34.0), (800.0, 27.0), (1200.0, 27.0)),
              7850.0, _STEEL_CP, 600.0, _EN, 0.1, 0.8),
    "stainless steel": ("metal", ((20.0, 15.0), (200.0, 17.3), (400.0, 19.8), (600.0, 22.2), (800.0, 24.7), (1000.0, 27.0)),
                        7900.0, _STAINLESS_CP, 950.0, "EN 1993-1-2 for stainless steel, rounded, from memory", 0.1, 0.7),
    "aluminium": ("metal", ((20.0, 205.0), (200.0, 200.0), (400.0, 190.0)), 2700.0, ((20.0, 900.0), (400.0, 1050.0)), 400.0, _MEMORY, 0.15, 0.2),
    "copper": ("metal", ((20.0, 390.0), (600.0, 360.0)), 8930.0, ((20.0, 385.0), (600.0, 430.0)), 800.0, _MEMORY, 0.1, 0.6),
    "brass": ("metal", ((20.0, 110.0), (400.0, 140.0)), 8500.0, ((20.0, 380.0), (400.0, 430.0)), 700.0, _MEMORY, 0.15, 0.5),
    "cast iron": ("metal", ((20.0, 50.0), (400.0, 42.0), (800.0, 30.0)), 7200.0, ((20.0, 480.0), (400.0, 600.0), (800.0, 800.0)), 1000.0, _MEMORY, 0.15, 0.85),
    "glass": ("ware", ((20.0, 1.0), (500.0, 1.4)), 2500.0, ((20.0, 800.0), (500.0, 1120.0)), 600.0, _MEMORY, 0.15, 0.9),
    "clay ware": ("ware", ((20.0, 0.9), (1000.0, 1.2)), 1900.0, ((20.0, 850.0), (600.0, 1050.0), (1000.0, 1150.0)), 1250.0, _MEMORY, 0.2, 0.9),
    "wood": ("ware", ((20.0, 0.14), (120.0, 0.16)), 600.0, ((20.0, 1600.0), (120.0, 2000.0)), 130.0, _MEMORY, 0.2, 0.9),
    "gypsum board": ("board", ((20.0, 0.21), (100.0, 0.20)), 800.0, ((20.0, 1000.0),), 80.0, _MEMORY, 0.15, 0.9),
}  # fmt: skip

#: Other usual spellings.
ALIASES = {
    "mild steel": "steel", "carbon steel": "steel", "stainless": "stainless steel", "rock wool": "mineral wool 100",
    "stone wool": "mineral wool 100", "mineral wool": "mineral wool 100", "ceramic fibre blanket": "ceramic fibre blanket 128",
    "ceramic fibre": "ceramic fibre blanket 128", "ceramic fibre board": "ceramic fibre board 300", "firebrick": "dense firebrick",
    "insulating firebrick": "insulating firebrick 23", "calcium silicate": "calcium silicate board",
    "vermiculite": "vermiculite board", "perlite": "perlite, loose", "glass wool": "glass wool 24",
}  # fmt: skip
