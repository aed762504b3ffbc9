// Floor, mats, walls, furniture and cardboard people.
layout(std140) uniform Floor { vec4 mat[FLOOR_SLOTS]; };
uniform sampler2DArray photos; uniform sampler2DArray sprites; uniform sampler2D contact; uniform sampler2D backdrop;
uniform vec4 contact_area;  // centre x, y, half side, strength
uniform vec2 viewport;
in vec3 at; in vec3 facing; in vec2 texel; in vec4 tint; flat in vec2 surface;
out vec4 colour;

#include noise
#include light

#if ONLY_FLOOR

vec3 tiles(vec2 p) {
    vec2 t = p / mat[TILE].w, f = fract(t), id = floor(t);
    float seam = min(min(f.x, 1.0 - f.x), min(f.y, 1.0 - f.y)) * mat[TILE].w;
    float second = mat[TILE2].w > 0.5 ? mod(id.x + id.y, 2.0) : 0.0;
    vec2 inner = abs(p) - mat[BORDER].w;
    bool border = max(inner.x, inner.y) > 0.0;
    vec3 c = border ? mat[BORDER].rgb : mix(mat[TILE].rgb, mat[TILE2].rgb, second);
    float line = min(abs(inner.x) + 8.0 * step(0.0, inner.y), abs(inner.y) + 8.0 * step(0.0, inner.x));
    c = mix(c, mat[LINE].rgb, smoothstep(0.005, 0.0, line - mat[LINE].w) * step(0.001, mat[LINE].w));
    float ring = abs(length(p) - mat[RING].w);
    c = mix(c, mat[RING].rgb, smoothstep(0.005, 0.0, ring - 0.04) * step(0.01, mat[RING].w));
    return c * (1.0 - mat[SEAM].x * smoothstep(0.007, 0.002, seam));
}

vec3 off_mat(vec2 p) {
    int what = int(mat[GROUND].w + 0.5);
    vec3 c = mat[GROUND].rgb;
    if (what == 1) {
        float plank = floor(p.x / 0.09), shift = fract(sin(plank * 12.9898) * 43758.5);
        float board = fract(sin(plank * 7.1 + floor(p.y / 1.2 + shift) * 3.7) * 1733.7);
        c *= 0.75 + 0.4 * board + 0.12 * noise(vec3(p.x * 60.0, p.y * 3.0, plank)).a;
        c *= 1.0 - 0.4 * smoothstep(0.004, 0.001, abs(fract(p.x / 0.09) - 0.5) * 0.09 - 0.041 + 0.004);
    } else if (what == 2) c *= 0.7 + 0.6 * noise(vec3(p * 1.5, 0.0)).a;
    else if (what == 3) c = pow(texture(photos, vec3(p * 0.5, mat[SEAM].w)).rgb, vec3(2.2));
    else if (what == 4) { vec2 f = abs(fract(p / 0.4) - 0.5); c *= 1.0 - 0.35 * step(0.48, max(f.x, f.y)); }
    return c;
}

void paint(int what, inout vec3 albedo, inout vec3 n, inout float gloss, inout float open) {
    float c = cos(mat[AREA].w), s = sin(mat[AREA].w);
    vec2 p = mat2(c, -s, s, c) * (at.xy - mat[AREA].xy);
    bool on_mat = max(abs(p.x), abs(p.y)) < mat[AREA].z;
    vec2 q = (at.xy - contact_area.xy) / contact_area.z * 0.5 + 0.5;
    if (q == clamp(q, 0.0, 1.0)) open = mix(1.0, texture(contact, q).r, contact_area.w);
    if (what == CATCHER && !on_mat) {  // a photograph's own floor: only darken it
        vec3 photo = texture(backdrop, gl_FragCoord.xy / viewport).rgb;
        float shade_ = mix(1.0, open, 0.8) * mix(0.62, 1.0, lit(at, n));
        colour = vec4(photo * pow(shade_, 0.6), 1.0);
        return;
    }
    albedo = on_mat ? tiles(p) : off_mat(p);
    albedo *= 0.92 + 0.10 * noise(vec3(p * 1.7, 0.3)).a + 0.05 * noise(vec3(p * 45.0, 0.7)).a;
    albedo *= 1.0 - mat[SEAM].y * smoothstep(0.55, 0.75, noise(vec3(p * 3.1, 5.0)).a);
    n = normalize(n + vec3((noise(vec3(p * 4.0, 1.0)).rg) * 0.02, 0.0));
    gloss = on_mat ? mat[SEAM].z : gloss;
    }

#else

void paint(int what, inout vec3 albedo, inout vec3 n, inout float gloss, inout float open) {
    if (what == PHOTO) albedo = pow(texture(photos, vec3(texel, tint.a)).rgb, vec3(2.2)) * tint.rgb;
    if (what == SPRITE) {
        vec4 s = texture(sprites, vec3(texel, tint.a));
        if (s.a < 0.5) discard;
        colour = vec4(develop(s.rgb * s.rgb * tint.rgb), 1.0);
        return;
    }
    if (what == GLOW) { colour = vec4(develop(tint.rgb * (0.85 + 0.3 * noise(vec3(texel * 3.0, 0.5)).a)), 1.0); return; }
    if (what == PLASTER) albedo *= 0.86 + 0.2 * noise(at * 1.3).a + 0.08 * noise(at * 24.0).a;
    if (what == BRICK) {
        vec2 b = texel / vec2(0.24, 0.075); b.x += 0.5 * mod(floor(b.y), 2.0);
        vec2 f = abs(fract(b) - 0.5); float r = fract(sin(dot(floor(b), vec2(12.9898, 78.233))) * 43758.5);
        albedo *= max(f.x * 1.0, 0.0) > 0.475 || f.y > 0.43 ? 1.25 : 0.7 + 0.4 * r;
    }
    if (what == PADDING) albedo *= 1.0 - 0.45 * smoothstep(0.015, 0.0, abs(fract(texel.x / 1.0) - 0.5) * 1.0);
    if (what == SLATS) albedo *= 0.8 + 0.3 * step(0.5, fract(texel.y / 0.16));
}

#endif

void main() {
    vec3 n = normalize(facing), albedo = tint.rgb;
    float gloss = surface.y, open = 1.0;
    colour.a = 0.0;
    paint(int(surface.x + 0.5), albedo, n, gloss, open);
    if (colour.a == 0.0) colour = vec4(develop(shade(albedo, at, n, open, gloss, 26.0, 0.0)), 1.0);
}
