// What lens, sensor and phone do to a picture.
uniform sampler2D scene; uniform vec2 size;
uniform vec2 motion;        // blur path, pixels
uniform float defocus;      // radius, pixels
uniform vec4 grain;         // brightness noise, colour noise, seed, blockiness in pixels
uniform vec4 tone;          // contrast, saturation, vignette, sharpening
uniform vec2 lift;          // black level, gamma
in vec2 texel; out vec4 colour;

float hash(vec2 p, float s) {
    vec3 q = fract(vec3(p.xyx) * 0.1031 + s * 0.137);
    q += dot(q, q.yzx + 33.33);
    return fract((q.x + q.y) * q.z);
}

vec3 tap(vec2 p) { return texture(scene, p).rgb; }

void main() {
    vec2 uv = texel, px = 1.0 / size;
    if (grain.w > 1.0) uv = (floor(uv * size / grain.w) + 0.5) * grain.w / size;
    vec3 c = vec3(0.0);
    if (dot(motion, motion) > 0.3) {
        for (int i = 0; i < 9; i++) c += tap(uv + motion * px * (float(i) / 8.0 - 0.5));
        c /= 9.0;
    } else if (defocus > 0.4) {
        for (int i = 0; i < 12; i++) {
            float a = float(i) * 2.39996, r = sqrt((float(i) + 0.5) / 12.0) * defocus;
            c += tap(uv + vec2(cos(a), sin(a)) * r * px);
        }
        c /= 12.0;
    } else {
        c = tap(uv);
        if (tone.w > 0.0) {
            vec3 around = 0.25 * (tap(uv + vec2(px.x, 0)) + tap(uv - vec2(px.x, 0)) + tap(uv + vec2(0, px.y)) + tap(uv - vec2(0, px.y)));
            c += tone.w * (c - around);
        }
    }
    vec2 d = (texel - 0.5) * vec2(1.0, size.y / size.x);
    c *= 1.0 - tone.z * dot(d, d) * 2.0;
    c = pow(max(c, 0.0), vec3(lift.y));
    float grey = dot(c, vec3(0.3, 0.59, 0.11));
    c = mix(vec3(grey), c, tone.y);
    c = (c - 0.5) * tone.x + 0.5 + lift.x;
    vec2 g = floor(texel * size);
    float y = hash(g, grain.z) + hash(g, grain.z + 3.1) - 1.0;
    vec2 cell = floor(g / 2.0);
    vec3 chroma = vec3(hash(cell, grain.z + 5.0), hash(cell, grain.z + 7.0), hash(cell, grain.z + 9.0)) - 0.5;
    float dark = 1.3 - 0.7 * grey;
    c += y * grain.x * dark + chroma * grain.y * dark;
    colour = vec4(clamp(c, 0.0, 1.0), 1.0);
}
