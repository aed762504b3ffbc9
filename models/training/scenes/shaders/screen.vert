in vec2 corner;
out vec2 texel;
void main() { texel = corner * 0.5 + 0.5; gl_Position = vec4(corner, 0.99999, 1.0); }
