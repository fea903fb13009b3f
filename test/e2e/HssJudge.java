import java.io.BufferedReader;
import java.io.InputStreamReader;
import java.security.SecureRandom;
import org.bouncycastle.crypto.AsymmetricCipherKeyPair;
import org.bouncycastle.pqc.crypto.lms.*;
import org.bouncycastle.util.encoders.Hex;

/**
 * Judges HSS/LMS by another implementation of RFC 8554. Reads requests, one a line:
 * "verify KEY MESSAGE SIGNATURE" (hexadecimal) answers "true" or "false";
 * "sign LEVELS W MESSAGE" makes a key of that many H5 levels and answers "KEY SIGNATURE".
 */
public class HssJudge {
  static final LMOtsParameters[] OTS = {
    LMOtsParameters.sha256_n32_w1,
    LMOtsParameters.sha256_n32_w2,
    LMOtsParameters.sha256_n32_w4,
    LMOtsParameters.sha256_n32_w8
  };

  public static void main(String[] args) throws Exception {
    BufferedReader in = new BufferedReader(new InputStreamReader(System.in));
    for (String line; (line = in.readLine()) != null; ) {
      String[] words = line.split(" ");
      System.out.println(words[0].equals("verify") ? verify(words) : sign(words));
    }
  }

  static String verify(String[] words) {
    try {
      HSSSigner signer = new HSSSigner();
      signer.init(false, HSSPublicKeyParameters.getInstance(Hex.decode(words[1])));
      return String.valueOf(signer.verifySignature(Hex.decode(words[2]), Hex.decode(words[3])));
    } catch (Exception refused) {
      return "false";
    }
  }

  static String sign(String[] words) throws Exception {
    int width = Integer.numberOfTrailingZeros(Integer.parseInt(words[2]));
    LMSParameters[] levels = new LMSParameters[Integer.parseInt(words[1])];
    for (int i = 0; i < levels.length; i++)
      levels[i] = new LMSParameters(LMSigParameters.lms_sha256_n32_h5, OTS[width]);
    HSSKeyPairGenerator maker = new HSSKeyPairGenerator();
    maker.init(new HSSKeyGenerationParameters(levels, new SecureRandom()));
    AsymmetricCipherKeyPair pair = maker.generateKeyPair();
    HSSSigner signer = new HSSSigner();
    signer.init(true, pair.getPrivate());
    byte[] signature = signer.generateSignature(Hex.decode(words[3]));
    byte[] key = ((HSSPublicKeyParameters) pair.getPublic()).getEncoded();
    return Hex.toHexString(key) + " " + Hex.toHexString(signature);
  }
}
