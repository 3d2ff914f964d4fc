"""The Pico's serial line: what it takes, and a hello that is answered."""

from .standin import APP


def test_the_link_sends_as_much_as_the_line_accepts(pico):
    """In pieces of one packet, only while the line is ready; a line that takes nothing costs no waiting."""
    out = pico(
        """
class Line:
    def __init__(self, room): self.room, self.sizes = room, []
    def write(self, view):
        self.sizes.append(len(view))
        sent = min(len(view), self.room)
        self.room -= sent
        return sent
    def ipoll(self, wait):
        return [(None, 4)] if self.room else []
board = pico.Board()
for room in (0, 10, 64, 100, 1000):
    board.stdout = board.poll_out = line = Line(room)
    print(board.write(memoryview(bytes(200))), line.sizes)
"""
    )
    assert out == ["0 []", "10 [64]", "64 [64]", "100 [64, 64]", "200 [64, 64, 64, 8]"]


def test_a_hello_over_the_link_is_answered(pico):
    """The real link on the stand-in: one request in through the stand-in of standard input, its reply out."""
    out = pico(
        APP
        + """
from rimward_protocol import codes, frame, layout, messages
from rimward_protocol.layouthash import LAYOUT_HASH
said = bytearray()
encoder = frame.Encoder()
body = layout.pack(messages.payload_of(codes.HELLO), {"protocol": codes.PROTOCOL_VERSION, "layout_hash": LAYOUT_HASH, "what": 0, "host_id": 7})
encoder.payload[:len(body)] = body
waiting = bytearray(encoder.out[:encoder.finish(codes.HELLO, 5, len(body))])
class In:
    def readinto(self, one):
        one[0] = waiting[0]
        waiting[:1] = b""
        return 1
    def ipoll(self, wait): return [(None, 1)] if waiting else []
class Out:
    def write(self, view):
        said.extend(view)
        return len(view)
    def ipoll(self, wait): return [(None, 4)]
def each(board, count):
    if count == 1:
        board.stdin = board.poll = In()
        board.stdout = board.poll_out = Out()
run(100, each)
decoder = frame.Decoder()
result, at = decoder.feed(said, 0, len(said))
about = layout.unpack(messages.payload_of(codes.HELLO_IS), decoder.payload)
print(result == frame.FRAME, decoder.kind == codes.HELLO_IS, decoder.sequence, about["board"][:4], about["flags"] & 4)
"""
    )
    assert out[-1] == "True True 5 b'pico' 0"
