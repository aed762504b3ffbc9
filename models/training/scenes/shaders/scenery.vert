uniform mat4 clip;
in vec3 position; in vec3 normal; in vec2 uv; in vec4 paint; in vec2 finish;
out vec3 at; out vec3 facing; out vec2 texel; out vec4 tint; flat out vec2 surface;

void main() {
    at = position; facing = normal; texel = uv; tint = paint; surface = finish;
    gl_Position = clip * vec4(position, 1.0);
}
