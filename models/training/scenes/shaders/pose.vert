// Poses one figure: skins it, loosens its cloth and measures how much sky each vertex sees.
layout(std140) uniform Bones { vec4 bone[3 * MAX_BONES]; };
layout(std140) uniform Balls { vec4 ball[MAX_BALLS]; };
layout(std140) uniform Look { vec4 look[LOOK_SLOTS]; };
uniform int ball_count;
uniform int head_bone;

in vec3 rest; in vec3 normal; in uvec4 bones0; in uvec4 bones1;
in vec4 weights0; in vec4 weights1; in vec4 region; in vec4 parts; in float kind;
out vec3 position; out vec3 direction; out float openness;

#include noise
#include cover

mat4x3 blend() {
    vec4 x = vec4(0), y = vec4(0), z = vec4(0);
    for (int k = 0; k < 8; k++) {
        float w = k < 4 ? weights0[k] : weights1[k - 4];
        if (w == 0.0) break;  // weights come in falling order
        int b = 3 * int(k < 4 ? bones0[k] : bones1[k - 4]);
        x += w * bone[b]; y += w * bone[b + 1]; z += w * bone[b + 2];
    }
    return transpose(mat3x4(x, y, z));
}

float looseness(Wearer w) {
    float loose = look[CLOTH].z;
    int what = int(kind + 0.5);
    if (what == TROUSERS && look[BELT].w > 0.5)
        return 0.010 + loose * (0.010 + 0.020 * smoothstep(1.2, 0.3, w.region.y));
    if (what == TROUSERS)
        return 0.006 + loose * 0.026 * smoothstep(look[BOTTOM_CUT].y, look[BOTTOM_CUT].x, w.region.y);
    if (what == BELT_ENDS) return 0.012 + 0.012 * loose;
    if (what != JACKET) return 0.0;
    bool arm = w.region.z > 0.3;
    float wide = arm ? smoothstep(0.5, 1.9, w.region.x) : smoothstep(3.0, 1.7, w.region.y) * 0.9;
    float band = front_of(w) * (1.0 - smoothstep(0.035, 0.05, lapel_edge(w)));
    float belt = 1.0 - smoothstep(0.020, 0.03, abs(w.rest.z - look[PERSON].z));
    float waist = 1.0 - smoothstep(0.0, 0.12, abs(w.rest.z - look[PERSON].z));
    if (arm) { band = 0.0; belt = 0.0; waist = 0.0; }
    return 0.017 + loose * (0.012 * (1.0 - waist) + 0.020 * wide) + 0.004 * band + 0.010 * belt;
}

void main() {
    Wearer w = Wearer(rest, region, parts);
    mat4x3 m = blend();
    vec3 n = normalize(mat3(m) * normal);
    vec3 p = m * vec4(rest, 1.0);
    int what = int(kind + 0.5);
    float loose = looseness(w);
    if (what == TROUSERS || what == JACKET) {
        float amount = look[CLOTH].x * (0.55 + 0.9 * region.w);
        vec4 wide = noise(rest * 8.0 + look[CLOTH].w), fine = noise(rest * 19.0 - look[CLOTH].w);
        float fold = (wide.a - 0.5) * 0.045 + (fine.a - 0.5) * 0.020;
        loose += clamp(fold * amount, -0.5 * loose, 0.03);
        vec3 slope = mat3(m) * (wide.rgb * 8.0 * 0.045 + fine.rgb * 19.0 * 0.020) * amount;
        n = normalize(n - 1.3 * (slope - dot(slope, n) * n));
    }
    if (what == TAIL_HAIR && look[HAIR2].w > 0.0 && parts.w > 0.0) {  // a tail hangs from the head
        mat3 head = transpose(mat3(bone[3 * head_bone].xyz, bone[3 * head_bone + 1].xyz, bone[3 * head_bone + 2].xyz));
        vec3 out_of_head = normalize(head * vec3(0.0, 1.0, -0.25));
        vec3 hang = normalize(mix(out_of_head, vec3(0.0, 0.0, -1.0), smoothstep(0.0, 0.4, parts.w) * 0.8));
        p += hang * parts.w * look[HAIR2].w;
    }
    p += n * loose;
    p.z = max(p.z, 0.004);
    float hidden = 0.0;
    for (int i = 0; i < ball_count; i++) {
        vec3 d = ball[i].xyz - p; float l2 = dot(d, d); float r2 = ball[i].w * ball[i].w;
        if (l2 > r2 * 1.6) hidden += max(dot(d, n), 0.0) * inversesqrt(l2) * r2 / l2;
    }
    float floor_term = 0.62 + 0.38 * clamp(p.z / 0.3, 0.0, 1.0) + 0.38 * max(n.z, 0.0);
    position = p; direction = n;
    openness = clamp(1.0 - 0.5 * hidden, 0.18, 1.0) * min(floor_term, 1.0);
    gl_Position = vec4(p, 1.0);
}
