#include figure_cut
#include light
uniform sampler2DArray photos;
out vec4 colour;

struct Paint { vec3 albedo; float gloss; float power; float wrap; };

vec3 bump(vec3 n, vec3 gradient, float strength) {
    return normalize(n - strength * (gradient - dot(gradient, n) * n));
}

#if MATERIAL == HAIR_MATERIAL

Paint paint(Wearer w, int kind, bool back, inout vec3 n) {
    vec3 albedo = look[HAIR].rgb * (0.55 + 0.75 * noise(w.rest * vec3(160.0, 160.0, 40.0)).a);
    albedo *= shells > 0.0 ? 0.45 + 0.75 * worn.shell : 1.0;
    n = bump(n, noise(w.rest * vec3(110.0, 110.0, 40.0)).rgb * 90.0, 0.007);
    return Paint(albedo, 0.035, 18.0, 0.3);
}

#else

vec3 pattern(vec4 base, vec4 second, vec4 third, float photo, Wearer w) {
    int what = int(base.w + 0.5);
    vec3 q = w.rest; float s = second.w;
    vec2 turn = vec2(cos(third.w), sin(third.w));
    vec2 flat_ = vec2(dot(q.xz, turn), dot(q.xz, vec2(-turn.y, turn.x)));
    if (what == 1) return mix(base.rgb, second.rgb, smoothstep(0.45, 0.55, abs(fract(flat_.x * s) - 0.5) * 2.0));
    if (what == 2) {
        float a = noise(q * s * 4.0 + third.w * 3.0).a, b = noise(q * s * 7.0 + 9.0).a;
        return a > 0.56 ? second.rgb : (b > 0.58 ? third.rgb : base.rgb);
    }
    if (what == 3) return mix(base.rgb, second.rgb, smoothstep(-0.3, 0.3, flat_.x - 0.25));
    if (what == 4) return w.region.z < 0.3 && abs(q.x) > 0.115 + 0.02 * sin(q.z * 14.0) ? second.rgb : base.rgb;
    if (what == 5) {
        vec2 cell = floor(flat_ * s * 3.0);
        float r = fract(sin(dot(cell, vec2(12.9898, 78.233))) * 43758.5453);
        return r > 0.62 ? second.rgb : (r < 0.2 ? third.rgb : base.rgb);
    }
    if (what == 6) {
        vec3 print = texture(photos, vec3(q.xz * vec2(1.0, -1.0) * (0.6 + s * 0.15) + turn, photo)).rgb;
        return pow(print, vec3(2.2)) * mix(vec3(1.0), second.rgb * 1.6, 0.35);
    }
    if (what == 7) return abs(q.z - look[PERSON].z - 0.22) < 0.07 ? second.rgb : base.rgb;
    if (what == 8) {
        float d = length(vec2(q.x, q.z - look[PERSON].z - 0.24));
        return d < 0.10 && q.y < look[PERSON].w ? mix(second.rgb, third.rgb, step(0.5, fract(d * 18.0))) : base.rgb;
    }
    return base.rgb;
}

float cloth_relief(inout vec3 n, Wearer w, float strength) {
    vec3 q = w.rest; float seed = look[CLOTH].w;
    vec4 wide = noise(q * vec3(16.0, 16.0, 10.0) + seed), fine = noise(q * vec3(42.0, 42.0, 30.0) - seed);
    float along = w.region.z > 0.3 ? w.region.x * 0.27 : q.z;
    vec4 pleat = noise(vec3(q.xy * 11.0, along * 34.0 + q.x * 9.0) + seed * 1.7);
    float bend = smoothstep(0.2, 0.8, w.region.w) * 0.8 + 0.2;
    vec3 axis = w.region.z > 0.3 ? normalize(vec3(sign(q.x) * 0.7, -0.3, -0.65)) : vec3(0, 0, 1);
    vec3 g = wide.rgb * 16.0 + fine.rgb * 14.0 + axis * pleat.b * 34.0 * bend;
    n = bump(n, g, 0.055 * strength);
    return (wide.a - 0.5) * 0.25 + (fine.a - 0.5) * 0.16 + (pleat.a - 0.5) * 0.25 * bend;
}

#if MATERIAL == CLOTH_MATERIAL

vec3 jacket(Wearer w, inout vec3 n, out float relief) {
    relief = cloth_relief(n, w, look[CLOTH].x);
    vec3 albedo = look[TOP].rgb;
    float edge = lapel_edge(w), f = front_of(w);
    if (w.region.z < 0.3 && half_opening(w.rest.z) > 0.0 && edge < 0.045) {
        albedo = mix(albedo, look[TOP3].rgb, f);
        albedo *= 1.0 - 0.35 * f * smoothstep(0.006, 0.0, abs(edge - 0.041));
    }
    float overlap = f * smoothstep(0.006, 0.0, abs(w.rest.x - 0.035 + 0.25 * (w.rest.z - look[PERSON].z)));
    if (w.region.z < 0.3 && w.rest.z < look[PERSON].z + 0.06) albedo *= 1.0 - 0.4 * overlap;
    float hem = w.region.z > 0.3 ? (look[TOP_CUT].x - w.region.x) * 0.26 : (w.region.y - look[TOP_CUT].y) * 0.35;
    albedo *= 1.0 - 0.25 * smoothstep(0.005, 0.0, abs(hem - 0.03));
    vec2 patch_at = w.region.z > 0.3 ? vec2((w.region.x - 0.45) * 0.5, w.rest.y - look[PERSON].w + 0.02) : vec2(w.rest.x, w.rest.z - look[PERSON].z - 0.3) * (w.rest.y > look[PERSON].w ? 1.0 : 9.0);
    if (look[TOP2].w > 0.5 && max(abs(patch_at.x), abs(patch_at.y)) < 0.07) albedo = look[TOP2].rgb * (0.6 + 0.8 * step(0.5, noise(w.rest * 45.0).a));
    float belt = abs(w.rest.z - look[PERSON].z);
    if (w.region.z < 0.3 && belt < 0.022) {
        albedo = look[BELT].rgb * (0.85 + 0.25 * noise(w.rest * vec3(20, 20, 400)).a);
        if (w.rest.x > 0.06 && w.rest.x < 0.11) albedo = look[BELT2].rgb;
    }
    if (w.region.z < 0.3) albedo *= 1.0 - 0.45 * smoothstep(0.012, 0.0, belt - 0.022) * step(0.022, belt);
    albedo *= 0.93 + 0.14 * noise(w.rest * 300.0).a * look[CLOTH].y;
    return albedo;
}

vec3 trousers(Wearer w, inout vec3 n, out float relief) {
    relief = cloth_relief(n, w, look[CLOTH].x);
    vec3 albedo = pattern(look[BOTTOM], look[BOTTOM2], look[BOTTOM3], look[BOTTOM_CUT].w, w);
    float seam = abs(abs(w.rest.x) - 0.17 - 0.04 * (2.0 - w.region.y));
    if (look[BOTTOM3].w > 3.0 && seam < 0.02 && abs(w.rest.y - look[PERSON].w) < 0.05) albedo = look[BOTTOM2].rgb;
    if (w.region.y > look[BOTTOM_CUT].y - 0.12) albedo = mix(albedo, look[BOTTOM3].rgb, look[BELT].w > 0.5 ? 0.0 : 1.0);
    albedo *= 1.0 - 0.25 * smoothstep(0.006, 0.0, abs((w.region.y - look[BOTTOM_CUT].x) * 0.42 - 0.03));
    return albedo;
}

vec3 belt_ends(Wearer w) {
    vec3 albedo = look[BELT].rgb * (0.85 + 0.25 * noise(w.rest * vec3(20, 300, 60)).a);
    if (w.rest.z < look[PERSON].z - 0.17 && w.rest.z > look[PERSON].z - 0.21) albedo = look[BELT2].rgb;
    return albedo;
}

Paint paint(Wearer w, int kind, bool back, inout vec3 n) {
    float relief = 0.0;
    vec3 albedo;
    if (kind == JACKET) albedo = jacket(w, n, relief);
    else if (kind == TROUSERS) albedo = trousers(w, n, relief);
    else albedo = belt_ends(w);
    return Paint(albedo * (1.0 + relief), 0.03, 10.0, 0.1);
}

#else

vec3 skin(Wearer w, inout float gloss) {
    vec3 base = look[COMPLEXION].rgb;
    vec3 h = w.rest - vec3(0.0, look[PERSON].y, look[PERSON].x);
    float blotch = noise(w.rest * 14.0 + look[CLOTH].w).a - 0.5;
    vec3 albedo = base * (1.0 + 0.22 * blotch) * (0.97 + 0.06 * noise(w.rest * 120.0).a);
    float red = w.parts.x * smoothstep(0.05, 0.0, abs(length(h.xz - vec2(0, -0.03)) - 0.035)) * 0.5;
    red += 0.5 * smoothstep(0.16, 0.02, abs(w.region.y - 1.0)) * (1.0 - w.region.z);
    red += 0.4 * w.parts.y + 0.3 * w.parts.z;
    albedo *= mix(vec3(1.0), vec3(1.06, 0.86, 0.84), red);
    if (w.parts.x > 0.5 && h.y < 0.04) {
        float brow = smoothstep(0.006, 0.003, abs(h.z - 0.021 + 0.12 * max(abs(h.x) - 0.03, 0.0))) * smoothstep(0.026, 0.02, abs(abs(h.x) - 0.031));
        albedo = mix(albedo, look[HAIR].rgb, brow * look[BEARD].z);
        float socket = smoothstep(0.02, 0.008, length(vec2(abs(h.x) - 0.032, h.z)));
        albedo *= 1.0 - 0.35 * socket;
        float lips = smoothstep(0.007, 0.004, abs(h.z + 0.071)) * smoothstep(0.026, 0.02, abs(h.x)) * step(h.y, 0.012);
        albedo = mix(albedo, base * vec3(0.85, 0.5, 0.5), lips * 0.75);
    }
    float jaw = smoothstep(-0.035, -0.055, h.z) + smoothstep(0.012, 0.005, abs(h.z + 0.052)) * step(abs(h.x), 0.03);
    float beard = w.parts.x * clamp(jaw, 0.0, 1.0) * step(h.y, 0.075) * (0.4 + 0.6 * noise(w.rest * 200.0).a);
    albedo = mix(albedo, look[HAIR].rgb * 1.2, clamp(beard * look[BEARD].x, 0.0, 0.95));
    float shaved = smoothstep(0.0, 0.02, hairline(w)) * w.parts.x;
    albedo = mix(albedo, look[HAIR].rgb, shaved * look[BEARD].y);
    float ink = smoothstep(0.52, 0.56, noise(w.rest * 24.0 + look[CLOTH].w * 3.0).a);
    float where = smoothstep(0.48, 0.55, noise(w.rest * 4.5 - look[CLOTH].w).a);
    albedo = mix(albedo, albedo * 0.25 + vec3(0.0, 0.01, 0.02), ink * where * look[BEARD].w * (1.0 - w.parts.x) * 0.8);
    gloss = look[COMPLEXION].w;
    return albedo;
}

Paint paint(Wearer w, int kind, bool back, inout vec3 n) {
    if (kind == EYE) {
        vec3 iris = vec3(0.06, 0.035, 0.02), white = vec3(0.62, 0.58, 0.55);
        return Paint(w.parts.w > 0.5 ? iris : white, 0.3, 60.0, 0.1);
    }
    bool gi = look[BELT].w > 0.5;
    float gloss, relief = 0.0;
    vec3 albedo = skin(w, gloss);
    float power = 16.0, wrap = 0.25;
    n = bump(n, noise(w.rest * 90.0).rgb * 90.0, 0.0012);
    float top = top_cover(w), legs = leggings_cover(w);
    bool covered = false;
    if (!gi && legs > 0.0) {
        albedo = pattern(look[LEG], look[BOTTOM2], look[BOTTOM3], look[BOTTOM_CUT].w, w); covered = true;
        albedo *= 1.0 - 0.3 * smoothstep(0.004, 0.0, abs(legs - 0.012));
    }
    if (top > 0.0) {
        albedo = pattern(look[TOP], look[TOP2], look[TOP3], look[TOP_CUT].w, w); covered = true;
        if (w.region.z > 0.35 && w.region.x > -0.02 && look[CLOTH2].x > 0.5) albedo = look[TOP2].rgb;
        albedo *= 1.0 - 0.3 * smoothstep(0.004, 0.0, abs(top - 0.012));
    }
    if (covered) {
        gloss = 0.05; power = 14.0; wrap = 0.12; n = normalize(facing) * (back ? -1.0 : 1.0);
        relief = cloth_relief(n, w, 0.35) * 0.45;
    }
    if (look[KNEE].w > 0.5 && abs(w.region.y - 1.0) < 0.2 && w.region.z < 0.3) { albedo = look[KNEE].rgb; gloss = 0.04; }
    if (look[FOOT].w > 0.5 && w.region.y < look[FOOT].w - 1.0 + 0.12 && w.region.z < 0.3) {
        albedo = look[FOOT].rgb; gloss = 0.05;
        if (w.region.y < -0.35) albedo = vec3(0.55);
    }
    if (look[HEADGEAR].w > 0.5 && w.parts.x > 0.5) {
        vec3 h = w.rest - vec3(0.0, look[PERSON].y, look[PERSON].x);
        float ear = length(h.yz - vec2(0.105, -0.012));
        if (ear < 0.042 || (abs(h.y - 0.105) < 0.012 && h.z > 0.0)) { albedo = look[HEADGEAR].rgb; gloss = 0.1; }
    }
    return Paint(albedo * (1.0 + relief), gloss, power, wrap);
}

#endif
#endif

void main() {
    Wearer w = Wearer(worn.rest, worn.region, worn.parts);
    int kind = int(worn.kind + 0.5);
    if (absent(w, kind)) discard;
    vec3 n = normalize(facing), v = normalize(eye - at);
    bool back = dot(n, v) < 0.0;
    if (back) n = -n;
    Paint p = paint(w, kind, back, n);
    float seen_sky = open;
#if MATERIAL == CLOTH_MATERIAL
    if (back) { p.albedo *= 0.45; seen_sky *= 0.5; }  // the inside of a sleeve or a skirt
#endif
    vec3 c = shade(p.albedo, at, n, seen_sky, p.gloss, p.power, p.wrap);
#if MATERIAL == SKIN_MATERIAL
    float rim = 1.0 - max(dot(n, v), 0.0);  // light that leaves thin skin reddened
    c += p.albedo * vec3(0.09, 0.02, 0.01) * rim * rim * seen_sky * dot(sky, vec3(0.5));
#endif
    colour = vec4(develop(c), 1.0);
}
