// How much sky the floor sees under the bodies.
layout(std140) uniform Balls { vec4 ball[MAX_BALLS]; };
uniform int ball_count; uniform vec4 contact_area;
in vec2 texel; out float open;
void main() {
    vec3 p = vec3(contact_area.xy + (texel * 2.0 - 1.0) * contact_area.z, 0.0);
    float hidden = 0.0;
    for (int i = 0; i < ball_count; i++) {
        vec3 d = ball[i].xyz - p; float l2 = max(dot(d, d), ball[i].w * ball[i].w);
        hidden += max(d.z, 0.0) * inversesqrt(l2) * ball[i].w * ball[i].w / l2;
    }
    open = clamp(1.0 - 0.5 * hidden, 0.12, 1.0);
}
