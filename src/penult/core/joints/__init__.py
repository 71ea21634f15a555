"""From the pose model's joints to the joints of one runner on the runway, and the supports of the feet.

In: joints in the picture, with a lane. Out: who runs, trusted joints in metres, left and right, rough contacts.
It may not know of pictures or of measures.
"""
