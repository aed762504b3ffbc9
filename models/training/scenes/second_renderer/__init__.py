"""Pictures of the same pairs from a renderer that is not ours: Blender's path tracer, Cycles.

A reader trained on one rasteriser may have learned that rasteriser. Here bodies, poses and cameras
are the project's, and everything that makes a picture of them is another's: light, shadows,
materials, cloth with a thickness, hair in strands, focus and tone. For measuring, never trained on.

`describe` writes scenes as plain arrays, ``draw`` renders them in a Python of its own (Blender's
package pins an older NumPy), `gather` turns what came back into ordinary shards.
"""
