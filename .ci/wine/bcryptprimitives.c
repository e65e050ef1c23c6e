/* What the standard library asks bcryptprimitives.dll for; versions of wine before 9 don't have that file. Used by the checks alone. */
#include <windows.h>

BOOLEAN NTAPI SystemFunction036(PVOID buffer, ULONG length); /* RtlGenRandom, of advapi32.dll */

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE buffer, SIZE_T length) {
  while (length > 0) {
    ULONG part = length > 0x10000000 ? 0x10000000 : (ULONG)length;
    if (!SystemFunction036(buffer, part)) return FALSE;
    buffer += part;
    length -= part;
  }
  return TRUE;
}
