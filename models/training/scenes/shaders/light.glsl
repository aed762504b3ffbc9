// One shadowed key light, one fill light and a sky above a ground.
layout(std140) uniform Light {
    vec3 eye; vec3 key_direction; vec3 key_colour; vec3 fill_direction; vec3 fill_colour;
    vec3 sky; vec3 ground;
    vec3 gain;  // exposure times white balance
    mat4 light_clip;
};
uniform sampler2DShadow shadow_map;

float lit(vec3 p, vec3 n) {
    vec4 c = light_clip * vec4(p + n * 0.012, 1.0);
    vec3 q = c.xyz / c.w * 0.5 + 0.5;
    if (any(lessThan(q, vec3(0.0))) || any(greaterThan(q, vec3(1.0)))) return 1.0;
    q.z -= 0.0012;
    float s = 0.0, r = SHADOW_BLUR;
    s += texture(shadow_map, q + vec3(-r, -r, 0)); s += texture(shadow_map, q + vec3(r, -r, 0));
    s += texture(shadow_map, q + vec3(-r, r, 0)); s += texture(shadow_map, q + vec3(r, r, 0));
    return 0.25 * s;
}

vec3 shade(vec3 albedo, vec3 p, vec3 n, float open, float gloss, float power, float wrap) {
    vec3 v = normalize(eye - p);
    float shadow = lit(p, n);
    float key = max((dot(n, key_direction) + wrap) / (1.0 + wrap), 0.0) * shadow;
    float fill = max((dot(n, fill_direction) + wrap) / (1.0 + wrap), 0.0);
    vec3 light = mix(ground, sky, n.z * 0.5 + 0.5) * open + fill_colour * fill * open;
    light += key_colour * key * mix(0.65, 1.0, open);
    float shine = pow(max(dot(n, normalize(key_direction + v)), 0.0), power) * shadow;
    float sheen = pow(1.0 - max(dot(n, v), 0.0), 4.0);
    return albedo * light + gloss * (key_colour * shine + sky * sheen * open * 0.5);
}

vec3 develop(vec3 colour) {
    colour *= gain;
    colour = colour * (1.0 + colour * 0.06) / (1.0 + colour * 0.55);  // soft shoulder
    return pow(clamp(colour * 1.25, 0.0, 1.0), vec3(1.0 / 2.2));
}
