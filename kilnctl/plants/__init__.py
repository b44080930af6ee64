"""The virtual oven, its faults, and the protocol for any other simulation of an oven.

What "the chamber temperature" is
---------------------------------
Sizing and virtual oven use one definition, so that their steady states are the same number.

Two nodes represent the inside of the chamber: the *air* (one well-mixed temperature, air_c) and the *radiant star*
(radiant_c), the temperature of a small body that only radiates. Every surface inside (hot faces, elements, shelf, load)
exchanges radiation with the star and heat by convection with the air; faces do not exchange with each other directly.
The star has no heat capacity: the heat flows between it and the surfaces sum to zero. This is the
mean-radiant-temperature network of J. A. Carroll (1980); `kilnctl.thermal.enclosure` has it: areas, emissivities → the
conductance of each surface to the star, G_i = A_i / ((1 − e_i)/e_i + 1/F_i) with F_i = 1/(1 − A_i F_i / sum(A F)), heat
flow G_i σ (T_i⁴ − T_star⁴). It is exact for two equal grey plates.

*chamber_c* is what an ideal small sensor at the control position would show in balance between the two:

    e σ (T_radiant⁴ − T⁴) + h (T_air − T) = 0        (`thermal.enclosure.ideal_sensor_c`)

with a black-oxidised sheath (e = 0.8) and the film h of a 3 mm cylinder at the chamber's air speed. At 1000
°C it is the radiant temperature within a few kelvin; with a fan at 200 °C it lies close to the air.

The steady chamber
------------------
- elements: power = radiation to the star + convection to the air (the film of a cylinder of the element's diameter);
- each face: G_i σ (T_star⁴ − T_face⁴) + h_i A_i (T_air − T_face) = conduction into that wall; A_i is the true inside
  area, the conduction area is the face's area with its share of edges and corners (constant through the depth), the
  outer film acts on the true outer area;
- shelf and usual load (when one is in): no net heat when steady, but they re-radiate;
- air: element and surface convection + fan power = vent + door leak (both carry air from ambient to air_c);
- bridges: conductance times (radiant_c − ambient), drawn from the star, as frames and terminals take their heat from
  walls and elements; an open port radiates from the star to ambient.

Files: `virtual_oven` (VirtualOven) puts together `assembly` (description → arrays), `core` (the heat balance in time;
with `strips`, `property_tables`, `elimination`, `balance`, `guards`, `moisture`, `humidity`, `chamber`), `electrics`,
`probes` and `injection` (its faults); `conditions` has what differs from day to day or in a study; `plant` is the
protocol that the rest of the project uses.
"""
