#include figure_cut

void main() {
    if (absent(Wearer(worn.rest, worn.region, worn.parts), int(worn.kind + 0.5))) discard;
}
