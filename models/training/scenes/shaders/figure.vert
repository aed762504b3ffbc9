layout(std140) uniform Look { vec4 look[LOOK_SLOTS]; };
uniform mat4 clip; uniform float shells;
in vec3 position; in vec3 direction; in float openness;
in vec3 rest; in vec4 region; in vec4 parts; in float kind;
out vec3 at; out vec3 facing; out float open; out Wearing { vec3 rest; vec4 region; vec4 parts; float kind; float shell; } worn;

void main() {
    float shell = shells > 0.0 ? (float(gl_InstanceID) + 0.6) / shells : 0.0;
    vec3 p = position;
    if (shells > 0.0) {
        float longish = look[HAIR].w;
        vec3 ruffle = vec3(sin(rest.x * 170.0 + look[CLOTH].w), sin(rest.y * 150.0), sin(rest.z * 160.0 + look[CLOTH].w));
        p += normalize(direction + 0.35 * ruffle) * shell * min(longish, 0.035);
        p.z -= shell * shell * max(longish - 0.012, 0.0) * 0.5;
    }
    at = p; facing = direction; open = openness;
    worn.rest = rest; worn.region = region; worn.parts = parts; worn.kind = kind; worn.shell = shell;
    gl_Position = clip * vec4(p, 1.0);
}
