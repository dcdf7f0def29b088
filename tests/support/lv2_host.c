/* One plugin of LV2 in a host of its own: host BINARY RATE FRAMES CONTROL...; stereo 32-bit floats from
   standard input to standard output. Ports are numbered as faust2lv2 does: controls, two in, two out. */
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <lv2/core/lv2.h>
#include <lv2/urid/urid.h>

static LV2_URID mapped(LV2_URID_Map_Handle handle, const char *uri) { return 1; }

int main(int count, char **words) {
    LV2_URID_Map map = {NULL, mapped};
    LV2_Feature urid = {LV2_URID__map, &map};
    const LV2_Feature *features[] = {&urid, NULL};
    int rate = atoi(words[2]), frames = atoi(words[3]), controls = count - 4;
    float *sound[4], control[16], pair[2];
    void *library = dlopen(words[1], RTLD_NOW);
    if (!library) return 3;
    LV2_Descriptor_Function described = (LV2_Descriptor_Function)dlsym(library, "lv2_descriptor");
    const LV2_Descriptor *plugin = described(0);
    LV2_Handle handle = plugin->instantiate(plugin, rate, "", features);
    if (!handle) return 4;
    for (int i = 0; i < 4; i++) sound[i] = calloc(frames, sizeof(float));
    for (int i = 0; i < frames && fread(pair, sizeof(float), 2, stdin) == 2; i++)
        for (int c = 0; c < 2; c++) sound[c][i] = pair[c];
    for (int i = 0; i < controls; i++) {
        control[i] = atof(words[4 + i]);
        plugin->connect_port(handle, i, &control[i]);
    }
    for (int i = 0; i < 4; i++) plugin->connect_port(handle, controls + i, sound[i]);
    if (plugin->activate) plugin->activate(handle);
    plugin->run(handle, frames);
    for (int i = 0; i < frames; i++)
        for (int c = 0; c < 2; c++) fwrite(&sound[2 + c][i], sizeof(float), 1, stdout);
    return 0;
}
