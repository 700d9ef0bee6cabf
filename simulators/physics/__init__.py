"""What the virtual rig is made of: each part is `update(now_s, inputs) -> outputs`, with its own noise source.

No part knows of wires, ports or clocks. Masses in g, pressures in Pa (suction positive), times in s.
"""
