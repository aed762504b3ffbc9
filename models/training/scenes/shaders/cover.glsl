// How far cloth reaches beyond a point of the body: positive where covered, roughly metres.
struct Wearer { vec3 rest; vec4 region; vec4 parts; };

float front_of(Wearer w) { return smoothstep(0.0, 0.03, look[PERSON].w - w.rest.y); }

float half_opening(float z) {
    float above = z - look[PERSON].z;
    return above > 0.0 ? clamp((above - 0.05) * 0.30, 0.0, 0.085) : clamp((-0.03 - above) * 0.22, 0.0, 0.06);
}

float lapel_edge(Wearer w) {  // signed distance from the jacket's opening, front only
    return abs(w.rest.x) - half_opening(w.rest.z);
}

float jacket_cover(Wearer w) {
    float cover = (4.06 - w.region.y) * 0.2;
    if (w.region.z > 0.3) cover = min(cover, (look[TOP_CUT].x - w.region.x) * 0.26);
    else cover = min(cover, (w.region.y - look[TOP_CUT].y) * 0.35);
    if (front_of(w) > 0.5 && half_opening(w.rest.z) > 0.0) cover = min(cover, lapel_edge(w));
    bool inner = abs(w.rest.x) < 0.075 && abs(w.rest.y - look[PERSON].w) < 0.085;
    if (inner && w.region.y < 1.95) cover = -1.0;
    return cover;
}

float trousers_cover(Wearer w) {
    if (w.region.z > 0.5) return -1.0;
    return min((look[BOTTOM_CUT].y - w.region.y) * 0.3, (w.region.y - look[BOTTOM_CUT].x) * 0.42);
}

float top_cover(Wearer w) {  // rash guard, on the skin itself
    float cover = (look[TOP_CUT].z - 0.16 * front_of(w) - w.region.y) * 0.2;
    if (w.region.z > 0.2) cover = min(cover, (look[TOP_CUT].x - w.region.x) * 0.26);
    else cover = min(cover, (w.region.y - look[TOP_CUT].y) * 0.35);
    return min(cover, 0.5 - w.parts.x);
}

float leggings_cover(Wearer w) {
    if (w.region.z > 0.3) return -1.0;
    return min((look[BOTTOM_CUT].y - w.region.y) * 0.3, (w.region.y - look[BOTTOM_CUT].z) * 0.42);
}
