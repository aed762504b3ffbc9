// Which parts of a figure's meshes are there at all under this look; shared by every pass.
layout(std140) uniform Look { vec4 look[LOOK_SLOTS]; };
in vec3 at; in vec3 facing; in float open;
in Wearing { vec3 rest; vec4 region; vec4 parts; float kind; float shell; } worn;
uniform float shells;

#include noise
#include cover

float hairline(Wearer w) {  // positive on the scalp
    vec3 h = w.rest - vec3(0.0, look[PERSON].y, look[PERSON].x);   // from between the eyes
    float forehead = h.z - (0.055 + look[HAIR2].x) + 0.9 * clamp(h.y, 0.0, 0.07) - 0.25 * abs(h.x);
    float side = h.y - 0.075 + 0.35 * h.z;
    float nape = h.z + 0.075;
    float up = max(forehead, min(side, nape));
    return min(up, nape) + 0.010 * (noise(w.rest * 60.0).a - 0.5);
}

bool absent(Wearer w, int kind) {
#if MATERIAL == HAIR_MATERIAL
    if (kind != SKIN) return false;  // buns and tails are whole
    float edge = hairline(w);
    if (edge < 0.0) return true;
    float curl = look[HAIR2].z;
    vec3 q = w.rest * mix(230.0, 95.0, curl); q.z *= mix(0.45, 1.0, curl);
    float strand = noise(q).a * 0.65 + noise(w.rest * 55.0 + look[CLOTH].w).a * 0.45;
    float thin = worn.shell * worn.shell * 0.75 + 0.25 * smoothstep(0.02, 0.0, edge);
    return strand * look[HAIR2].y < thin * 0.95;
#elif MATERIAL == CLOTH_MATERIAL
    if (kind == TROUSERS) return trousers_cover(w) < 0.0;
    return kind == JACKET && jacket_cover(w) < 0.0;
#else
    if (kind != SKIN) return false;
    if (look[BELT].w > 0.5)
        return (jacket_cover(w) > 0.025 && w.region.y < 3.9) || trousers_cover(w) > 0.02;
    return look[BOTTOM_CUT].x < 5.0 && trousers_cover(w) > 0.03;
#endif
}
