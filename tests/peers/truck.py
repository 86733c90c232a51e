"""Units on a truck's bus, by can-j1939: `python -m tests.peers.truck LINK EVERY SA=C@FROM-TO`.

Each unit claims its address SA (hex) and sends group 65272 with the fluid at C degC each EVERY
seconds, from FROM to TO seconds after the start. All is invented.
"""

import sys
import time
from pathlib import Path

import j1939

from tests.peers.text_end import TextEnd


def main() -> None:
    """Send until killed."""
    end = TextEnd(Path(sys.argv[1]))
    every_s = float(sys.argv[2])

    def put(can_id: int, wide: bool, data: list[int], fd_format: bool = False) -> None:
        end.send(can_id, wide, bytes(data))

    ecu = j1939.ElectronicControlUnit(send_message=put)
    units = [_unit(ecu, text) for text in sys.argv[3:]]
    began_s = time.monotonic()
    while True:
        time.sleep(every_s)
        for application, raw, from_s, to_s in units:
            ready = application.state == j1939.ControllerApplication.State.NORMAL
            if ready and from_s <= time.monotonic() - began_s < to_s:
                data = [0xFF] * 4 + [raw & 0xFF, raw >> 8] + [0xFF] * 2
                application.send_pgn(0, 0xFE, 0xF8, 6, data)


def _unit(
    ecu: j1939.ElectronicControlUnit, text: str
) -> tuple[j1939.ControllerApplication, int, float, float]:
    head, _, times = text.partition("@")
    address, _, fluid_c = head.partition("=")
    from_s, _, to_s = times.partition("-")
    name = j1939.Name(
        arbitrary_address_capable=0,
        industry_group=j1939.Name.IndustryGroup.OnHighway,
        vehicle_system_instance=0,
        vehicle_system=0,
        function=3,
        function_instance=0,
        ecu_instance=0,
        manufacturer_code=0,
        identity_number=int(address, 16),
    )
    application = ecu.add_ca(name=name, device_address=int(address, 16))
    application.start()
    raw = round((float(fluid_c) + 273.0) / 0.03125)  # SPN 177
    return application, raw, float(from_s or 0.0), float(to_s or 1e9)


if __name__ == "__main__":
    main()
