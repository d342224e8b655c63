#include "command.h"

int main(int argc, char **argv)
{
    return nrw_command_main(argc, argv);
}
